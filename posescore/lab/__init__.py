"""What trains, films and fits: imported by nothing that ships."""
