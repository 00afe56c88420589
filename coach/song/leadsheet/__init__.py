"""leadsheet"""
