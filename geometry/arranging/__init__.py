"""Changing one's mind about tubes that are laid: straighten, flatten, line up, space evenly, merge."""
