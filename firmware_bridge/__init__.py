"""Everything that touches a wire: drivers, their wires' emulators, calibration and the cart file."""
