"""Plan the cutting, racking and selling of a coral frag farm."""

__version__ = "0.1.0"
