"""Rates from the bath: mass lost, gas evolved, acid dosed, over the wetted surface and the immersed time."""
