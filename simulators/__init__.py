"""A simulated anodizing line behind real serial ports: physics, devices, faults and the truth about them."""
