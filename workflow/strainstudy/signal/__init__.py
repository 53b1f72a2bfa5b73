"""Arrays in, arrays out: time base, quality, spikes, gaps, hum, filters, drift. Knows no sensor and no body."""
