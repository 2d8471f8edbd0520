"""The public port: pages, history and the live tail, from released records alone."""
