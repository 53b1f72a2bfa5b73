"""Published statistics on plain numbers: matching, intervals, agreement, reliability, effects; no body."""
