"""What agreement means and what to collect next: words, representativeness, planning, reporting items."""
