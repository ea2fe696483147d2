"""Pure computation about tube cages: no window, no drawing, no printing, no clock."""
