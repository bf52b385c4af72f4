"""The report as one HTML page that stands alone."""
