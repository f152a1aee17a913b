"""The made-up shop: diaries in `demo_data/`, entered the way the pages would."""
