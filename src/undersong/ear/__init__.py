"""Audio in, evidence, alignment, judging."""
