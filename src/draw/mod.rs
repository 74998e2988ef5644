//! Overlay, map and strip drawn with cairo; films and screens share it, so what is seen is what is exported.
