"""A first cage: named points of a body, and the tubes that are laid from them."""
