"""The invented dive: a seabed, a vehicle, a control station, and the demo that shows them."""
