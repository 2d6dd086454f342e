"""From a job to a planning problem, and what people ask of a plan."""
