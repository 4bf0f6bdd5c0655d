"""The commands, a function each, from parsed arguments to exit code; they call and print only."""
