"""Profile likelihood: quantities held at a value, and the limits that follow."""
