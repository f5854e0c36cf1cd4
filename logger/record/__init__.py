"""The store, the recording format and what leaves them."""
