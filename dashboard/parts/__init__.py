"""The parts every view is made of."""
