"""What if the figures turn out otherwise: draws of factors and of the weather."""
