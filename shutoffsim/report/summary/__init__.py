"""The risk summary that an insurer or owner reads: two typeset pages."""
