"""Data files of the gears; `pondpop.sampling` reads them."""
