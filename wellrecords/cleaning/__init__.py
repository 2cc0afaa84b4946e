"""Raw rows to canonical wells, and the rules that they must pass."""
