"""What a risk summary rests on: one scenario assessed once, everything that pages then tell."""
