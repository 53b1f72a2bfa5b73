"""The angle map of each sensor and session, from holds at known angles or a reference beside the sensor."""
