"""Learn the extra spread of forecasts on houses kept aside: ``make spread``."""
