"""The pages, mirrored on panel/web; a package, so that every kind of installation finds them."""
