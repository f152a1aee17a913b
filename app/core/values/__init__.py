"""What was typed, read or counted, as plain values: units, forms, readings, uncertainty."""
