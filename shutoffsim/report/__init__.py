"""What a person sees: tables, timelines, pages."""
