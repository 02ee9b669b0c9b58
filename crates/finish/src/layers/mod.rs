//! Layers: what lies under or over the surface, and room between.
