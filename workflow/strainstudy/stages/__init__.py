"""One module per stage: reads what the stage before left, computes, writes what the next one needs."""
