"""That the exact record is as it was sealed: sums, proofs, and how anybody checks them."""
