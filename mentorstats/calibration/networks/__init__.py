"""Which raters can be compared with each other, and what would connect those who cannot."""
