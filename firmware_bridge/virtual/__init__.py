"""The virtual cart: physics of a fill, and chips emulated at pins, registers and bytes."""
