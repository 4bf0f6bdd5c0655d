"""From a declared model and its data to columns, members and sums of products."""
