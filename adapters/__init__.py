"""How the world talks: sensors bring readings in, notifiers take messages out, stores keep."""
