"""What a motor does: pure functions on numpy arrays in SI units, batch first."""
