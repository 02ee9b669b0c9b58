//! Trims: cloth with thickness at an opening or along a loop.
