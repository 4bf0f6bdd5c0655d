"""The one ordinal fit that every question about raters starts from, and steps and draws from it."""
