"""The operator's desk on board, and each way in which a decision gets to the relay."""
