// Small things that a page without scripts does by itself in another way: nothing here is needed for an entry.
"use strict";
