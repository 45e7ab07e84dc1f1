"""How long do piston sets last, and what shortens it?  Arrays in, estimates with limits out."""
