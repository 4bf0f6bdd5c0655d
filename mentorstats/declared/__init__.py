"""What the dictionary and a programme's TOML files declare: rules, bands of words, study, vocabulary."""
