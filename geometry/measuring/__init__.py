"""What is measured on a layout: distances that stay, sizes of the whole, and what the tyres climb."""
