"""The building as rays meet it: what stops them, what weakens them, what mirrors them."""
