"""The lever-planning problem and its solution."""
