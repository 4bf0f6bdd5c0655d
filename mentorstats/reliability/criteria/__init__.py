"""Several scores at once: profiles, composites, and criteria studied one at a time."""
