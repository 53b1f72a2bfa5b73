"""From raw files to uniformly sampled channels of known quality."""
