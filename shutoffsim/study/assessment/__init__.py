"""What a risk summary rests on: one scenario assessed once, for all pages."""
