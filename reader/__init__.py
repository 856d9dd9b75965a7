"""From the bytes of a photo to the colours of a strip's pads, with their covariance."""
