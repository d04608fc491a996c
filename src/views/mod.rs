//! State drawn: terminal views, SVG, pages. One file per visible thing; no clock, no lock.
