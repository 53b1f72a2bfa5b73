"""How far results can be trusted: against labels, between raters, beside published norms, over time."""
