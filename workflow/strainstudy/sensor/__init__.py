"""The sensor: volts to resistance, strain and degrees with their uncertainty; its health; sensor or gait."""
