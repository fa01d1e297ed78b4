"""Which build a pump is, from whatever is known of it."""
