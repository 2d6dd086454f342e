"""What people do with the record: take batches, read the day, export, restore."""
