"""The shop's gauges: what they are, how big they really are, how well a hand repeats them."""
