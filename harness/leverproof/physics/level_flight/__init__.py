"""Level flight: what speed an aeroplane holds with the power its engines give."""
