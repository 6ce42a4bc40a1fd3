"""One module for each topic of the desk; each lists its addresses in ``ROUTES``."""
