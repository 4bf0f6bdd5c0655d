"""Agreement of raters: coefficients with intervals, from any long table."""
