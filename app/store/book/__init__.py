"""The book as a whole: opened, migrated, backed up, restored, exported, emptied of a person."""
