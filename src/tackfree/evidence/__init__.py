"""Film evidence: what readings and kits together show, and what they do not."""
