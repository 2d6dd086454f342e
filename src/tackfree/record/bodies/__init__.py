"""What an entry says: one model for each kind and version, in the trade's own words."""
