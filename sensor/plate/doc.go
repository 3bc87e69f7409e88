package plate
