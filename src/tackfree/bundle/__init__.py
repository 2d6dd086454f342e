"""The job document: typed, all faults at once, converted to the core's types."""
