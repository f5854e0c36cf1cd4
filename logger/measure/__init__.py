"""What readings mean: pure functions and causal, block-invariant estimators."""
