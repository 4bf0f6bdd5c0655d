"""Notes of the appendix, without numbers of their own."""
