"""Volts to resistance and response; response without spikes, hum and noise, with its slow drift beside it."""
