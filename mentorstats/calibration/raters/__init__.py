"""What is asked about each rater: severity, drift, central tendency, halo, fit, use of levels."""
