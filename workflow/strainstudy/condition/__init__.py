"""From response to response without spikes, hum and noise, with its slow drift beside it."""
