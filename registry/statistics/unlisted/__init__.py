"""Does what is called one build behave as two? Splits along an order, splits without one, and drift."""
