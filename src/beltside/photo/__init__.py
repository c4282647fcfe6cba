"""From a picture to circles, holes and outlines in millimetres."""
