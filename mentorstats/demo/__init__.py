"""An invented programme with planted, known effects."""
