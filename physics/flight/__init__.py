"""The flight of the rocket that the motor goes into: air, trajectory, balance. Imports nothing."""
