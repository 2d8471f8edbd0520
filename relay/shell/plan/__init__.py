"""What the operator writes: the expedition file, read, checked, and said in plain words."""
