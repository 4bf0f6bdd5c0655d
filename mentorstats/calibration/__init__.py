"""What identifies severity, severity itself, and the other habits of raters."""
