"""What is asked about groups of candidates and about the instrument."""
