"""Pictures of a coverage: takes results, computes nothing."""
