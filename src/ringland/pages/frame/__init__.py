"""What all pages share: look, templates, pictures, the site's map."""
