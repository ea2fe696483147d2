"""Laying tube along the body: from places that a person points at to a tube that can be bent."""
