"""Price lists, published in versions."""
