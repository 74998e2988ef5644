//! Log files: bytes to samples and notes. Takes readers, never paths; recognises CSV, NMEA 0183 and GPX by content.
