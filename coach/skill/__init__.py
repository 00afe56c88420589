"""skill"""
